"""The demo: an invented business in an invented region, played forward day by day and loaded like real input."""
