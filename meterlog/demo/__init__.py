"""The demo: recordings of an invented bench played into pseudo-terminals, the real daemon reading them."""
