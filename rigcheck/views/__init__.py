"""Views of results: terminal, JSON, pages. They draw and do not compute."""
