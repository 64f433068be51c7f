"""From priced cuts to the plan document, with its cautions."""
