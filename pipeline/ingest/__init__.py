"""Exports to store; what each module does, in the order of the flow.

exports       a site's files and their bytes
sniff         bytes to text and dialect: encoding, delimiter, decimal sign, preamble, header
rows          text to cells, each with its physical line
timestamps    texts to instants: formats, day and month order, folds and gaps of a zone
columns       header texts to role, unit and zone
values        cell texts to numbers and states
export_file   one export, opened: its dialect is known
file_clock    instants of one file's rows
file_reading  all that one file says
match         which file belongs to which logger, which column to which channel
merge         the files of one logger to one series per channel; repeats, conflicts, segments
accounts      what became of every row
store_tables  everything read, as the tables of the store
load          a site's store brought up to date
look, draft   what an export seems to be, and a first site.toml from that
"""
