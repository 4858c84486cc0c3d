"""The pages, one module each with a list `ROUTES`; `app.PAGES` names them."""
