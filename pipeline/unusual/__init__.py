"""Unusual days, lasting changes and unusual sites: pure functions on rows of unusual.site_day.

`days.judge` holds one site's days against its own past and dates its changes; `peers.judge_sites`
holds sites against their like. Nothing here opens a store; scikit-learn is imported only once
there are days enough to judge.
"""
