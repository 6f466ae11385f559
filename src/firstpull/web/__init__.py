"""The app in a browser, on this machine: translates between HTTP and the services."""
