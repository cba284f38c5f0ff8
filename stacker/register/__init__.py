"""Where each frame looked: motion models, estimation, the verdict on a frame, and warping."""
