"""The page on this machine on which a person chooses by eye. No arithmetic of pictures in here."""
