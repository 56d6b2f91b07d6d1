"""Yarn planned: what a lot can become, what to do when a wish is too fine, what the first metres say."""
