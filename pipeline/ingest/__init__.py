"""Exports to store, in this order: exports, sniff, rows, timestamps, columns, values, merge, load.

exports.py lists a site's files and their bytes; sniff.py says how a file is written; rows.py cuts
it into cells with their physical lines; timestamps.py makes instants of texts; columns.py makes
roles and units of header texts; values.py makes numbers and states of cells; export_file.py joins
these for one file; merge.py joins the files of one logger; load.py writes the store.
"""
