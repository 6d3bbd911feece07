"""The live page: a phone over the room's Wi-Fi shows a session and, where allowed, acts in it."""
