"""The expression language of checklists: text → syntax → checked condition → compiled source.

`syntax` parses, `check` resolves names and dimensions, `compiled` writes flat Python, `tree` walks the same
condition slowly and says why.
"""
