"""The screen in a browser: a small web server on the walker's own computer, one app process a browser."""
