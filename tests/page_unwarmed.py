"""Jobs whose worker cannot start."""


def warm():
    raise OSError("nothing can be loaded")
