"""The bench page: what a store holds and what its lines do, for a browser. An edge; it never writes to the store.

serve ──► app ──► guard (who may ask)
             ├──► readers (connections that cannot write; one answer for all who ask the same)
             ├──► pulse (tells the viewers that something has changed)
             └──► now, runs, configurations, findings, octets (store -> plain values) ──► templates/
"""
