"""Results for people and programs: messages, text, JSON, HTML, PDF, and figures."""
