"""HTTP: parse, call one workflow, answer."""
