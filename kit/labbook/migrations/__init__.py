"""How a lab book's tables came to be: one numbered step a schema, run by `kit.labbook.migrate`."""
