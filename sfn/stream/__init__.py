"""The link to each transmitter: what is sent, what it costs in rate and latency, and what gets lost on the way.

`payload` what is carried, `packet` how it is packed, `link` one stream planned as a whole;
`loss` models of loss, `protection` what survives them; `capture` and `buffer` measured networks;
`advise` combinations for a target; `failures`, `standby` what leaves which sites in step; `off_air`
sites that listen to another instead.
"""
