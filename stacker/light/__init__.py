"""What a pixel means: code values, linear light, colour profiles and luminance.

Light is always float and linear, 1.0 being the white of the file's encoding. A code is always
an integer as a file stores it. This folder imports nothing of the program but its errors.
"""
