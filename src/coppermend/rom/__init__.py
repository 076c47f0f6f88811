"""Program memories: images, dumps, devices."""
