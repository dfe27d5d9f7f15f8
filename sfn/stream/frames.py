"""Where the UDP header begins in a captured frame: Ethernet with tags, raw IP, Linux cooked and BSD null link types."""

from struct import Struct

_TYPE = Struct(">H")
ETHERNET, _VLAN_TYPES = 1, (0x8100, 0x88A8, 0x9100)
# link type: (offset of the protocol field or None, bytes before the IP header)
LINKS: dict[int, tuple[int | None, int]] = {
    ETHERNET: (12, 14), 113: (14, 16), 276: (0, 20), 0: (None, 4), 108: (None, 4), 12: (None, 0), 14: (None, 0),
    101: (None, 0), 228: (None, 0), 229: (None, 0),
}  # fmt: skip
_IPV6_OPTIONS = (0, 43, 60)  # hop-by-hop, routing, destination options


def rtp_at(frame: bytes, link: int) -> int:
    """Where the UDP header before a whole RTP header begins; -1 if there is none."""
    udp = _udp_at(frame, link)
    return udp if udp >= 0 and len(frame) >= udp + 20 and frame[udp + 8] >> 6 == 2 else -1


def _udp_at(frame: bytes, link: int) -> int:
    """Where the UDP header begins; -1 if there is none."""
    type_at, ip = LINKS[link]
    if type_at is not None and len(frame) >= ip:
        kind = _TYPE.unpack_from(frame, type_at)[0]
        while link == ETHERNET and kind in _VLAN_TYPES and len(frame) >= ip + 4:
            kind = _TYPE.unpack_from(frame, ip + 2)[0]
            ip += 4
        if kind not in (0x0800, 0x86DD):
            return -1
    if len(frame) < ip + 20:
        return -1
    version = frame[ip] >> 4
    if version == 4:
        later_fragment = (frame[ip + 6] & 0x1F) or frame[ip + 7]
        return ip + 4 * (frame[ip] & 0x0F) if frame[ip + 9] == 17 and not later_fragment else -1
    if version != 6:
        return -1
    following, at = frame[ip + 6], ip + 40
    while following in _IPV6_OPTIONS and len(frame) >= at + 8:
        following, at = frame[at], at + 8 * (frame[at + 1] + 1)
    return at if following == 17 else -1
