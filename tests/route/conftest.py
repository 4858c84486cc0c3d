"""Nothing to set up: the folder's helper modules are found beside the tests."""
