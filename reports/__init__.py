"""Pages made of a result: one HTML file each, no network, readable without a script.

A block (reports/blocks/) turns the model into HTML and figures; a page (site.py) is an ordered
list of blocks; a figure record (figure.py) is drawn twice, still (svg.py) and live
(plotly_figure.py). Nothing here measures: numbers come from pipeline.result.
"""
