"""The glance screen: a page of very big type in a browser on this machine, read from across the room.

`screen` meets `ports.Screen` and holds what is shown, `server` hands it to browsers
on the loopback address, `legible` says how tall a letter must be, and the three
`page` files are all a browser gets. Nothing here decides anything or can hold up the loop.
"""
