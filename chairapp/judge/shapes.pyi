from typing import Any

Doc = dict[str, Any]
Rows = list[Doc]
Value = Any
Marks = dict[str, float]
