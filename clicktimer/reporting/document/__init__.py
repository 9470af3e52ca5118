"""Stage 10, the last: a result as a document, HTML or PDF, for a client to read and a technician to check.

model.py is what a document holds; compose.py makes it; html.py and pdf.py lay it out; check.py measures it again.
"""
