"""Program memories: images and their file formats, dumps, devices, merging, and sockets adapted to other devices."""
