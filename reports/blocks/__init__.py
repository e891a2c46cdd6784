"""Parts of a page, one file each: `render(model) -> Block`, pure, tested on the model alone."""
