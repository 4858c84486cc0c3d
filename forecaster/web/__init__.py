"""Pages in the browser for the office and the crews; the forecast is made beside, never inside, a request."""
