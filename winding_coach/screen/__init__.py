"""The terminal screen: it looks at `session.view` some times a second, and never touches a source or the loop."""
