"""Tables as workbooks and as text to publish."""
