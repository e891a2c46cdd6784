"""Nothing lost, nothing broken, nobody let in: inputs bent, runs killed, runs at once, strangers.

mutants.py bends exports and site files, fuzz.py reads them; kill.py ends runs at random moments;
at_once.py sets two runs on one folder; sql_mutants.py bends the stages to see whether tests notice.
"""
