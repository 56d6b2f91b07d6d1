"""Evenness planned: what each pass will leave, when no stripe is seen, and which figures that rests on."""
