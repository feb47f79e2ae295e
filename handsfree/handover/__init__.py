"""The hand-over by network: a device sends closed visits to its office, and fetches what waits for it there.

`package` makes one file of a visit, `signed_requests` signs each request by a key that the device's own key
vouches for (`credentials`), `uploads` takes files in over links that break, `intake` verifies them and signs a
receipt (`receipts`), `outbox` holds what waits for a device, and `reception` is all of that over HTTP. On the
device `office_link`, `sending`, `fetching` and `thinning` do the other half. HANDOVER.md beside this file tells
the protocol.
"""
