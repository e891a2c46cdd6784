"""Exports to store; what each module does, in the order of the flow.

exports       a site's files and their bytes
encoding      bytes to text
columns       header texts to role, unit and zone
written_times texts to clock readings: formats, day and month order
time_columns  where in a row date and time stand
header        which lines name the columns
sniff         text to dialect: delimiter, decimal sign, preamble, header, time columns
containers    archives and workbooks, which hold several exports
rows          text to cells, each with its physical line
timestamps    clock readings to instants: folds and gaps of a zone
values        cell texts to numbers and states
export_file   one export, opened: its dialect is known
lost_clock    clocks that lost their date or were set back
file_clock    instants of one file's rows
reading       what was read from one export, as records
leftover_rows footers, headers again, notes of the logger, damaged rows
file_reading  all that one file says
match         which file belongs to which logger, which column to which channel
logger_clock  one clock for all files of a logger
merge         the files of one logger to one series per channel; repeats, conflicts, segments
accounts      what became of every row
going_on      each channel's last word, for the next load
store_tables  everything read, as the tables of the store
append        what files add to a store that all come after what it holds
site_store    the store made anew, or added to
load          a site's store brought up to date
column_look, look, draft   what an export seems to be, and a first site.toml from that
"""
