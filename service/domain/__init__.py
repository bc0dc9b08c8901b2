"""The trade's arithmetic: pure, exact, without input or output."""
