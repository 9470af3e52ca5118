"""10 page: a listening folder -> a page in the browser that shows it as it goes on, or as it ended. Read only."""
