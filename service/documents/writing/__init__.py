"""How documents are written in any language: formats, labels, pages, paper, typesetting."""
