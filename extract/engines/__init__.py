"""OCR engines: pixels → words with confidence, one module per engine."""
