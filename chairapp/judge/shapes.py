"""Names for the shapes of plain data, used in annotations only; shapes.pyi tells the type checker what they hold."""

Doc = dict
Rows = list
Value = object
Marks = dict
