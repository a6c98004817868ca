"""The guards of the phone's protocol, each switched off in a copy: a named test must then fail."""
