"""The bundled sample: an invented plan, drawn and rendered for this project."""
