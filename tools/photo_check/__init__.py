"""A second renderer of synthetic photographs, written apart from ``photo_render`` so that it can hold out and vary.

Boards come from ``photo_render.boards``; nothing else is shared. Leaks grow as first-passage percolation, light is
reflected from small random surroundings, and parts are meshes projected face by face. Every choice is drawn
at random from wide ranges (domain randomisation); how wide they are is our own estimate, no source.
"""
