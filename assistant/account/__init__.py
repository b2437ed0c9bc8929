"""One account of a session: a record opened again (`reading`), decided again (`rederiving`), and told (`telling`,
`steps`). Whatever shows a record, on paper, page, screen or as JSON, takes its words from here."""
