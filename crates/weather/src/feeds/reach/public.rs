//! Which addresses are public.

use std::net::{IpAddr, Ipv4Addr, Ipv6Addr};

/// Ranges of IPv4 that are not public, with the bits of their prefix: those that
/// the IANA registry of special-purpose addresses (RFC 6890) does not call
/// globally reachable, those that go to many, and 6to4's relays.
const V4: &[(Ipv4Addr, u32)] = &[
    // This network, and no address at all.
    (Ipv4Addr::new(0, 0, 0, 0), 8),
    // Private (RFC 1918).
    (Ipv4Addr::new(10, 0, 0, 0), 8),
    (Ipv4Addr::new(172, 16, 0, 0), 12),
    (Ipv4Addr::new(192, 168, 0, 0), 16),
    // Behind a provider's address translation (RFC 6598).
    (Ipv4Addr::new(100, 64, 0, 0), 10),
    // This machine.
    (Ipv4Addr::new(127, 0, 0, 0), 8),
    // This link (RFC 3927); where clouds keep what only the machine may know.
    (Ipv4Addr::new(169, 254, 0, 0), 16),
    // For protocols (RFC 6890).
    (Ipv4Addr::new(192, 0, 0, 0), 24),
    // For documents (RFC 5737).
    (Ipv4Addr::new(192, 0, 2, 0), 24),
    (Ipv4Addr::new(198, 51, 100, 0), 24),
    (Ipv4Addr::new(203, 0, 113, 0), 24),
    // Relays of 6to4, given up (RFC 7526).
    (Ipv4Addr::new(192, 88, 99, 0), 24),
    // For benchmarks (RFC 2544).
    (Ipv4Addr::new(198, 18, 0, 0), 15),
    // To many (RFC 5771), and kept back, with broadcast at its end (RFC 1112).
    (Ipv4Addr::new(224, 0, 0, 0), 3),
    // From memory: one cloud's own services, told to its machines alone.
    (Ipv4Addr::new(168, 63, 129, 16), 32),
];

/// The same of IPv6, within the part of it that is given out (2000::/3).
const V6: &[(Ipv6Addr, u32)] = &[
    // For protocols (RFC 2928): Teredo, benchmarks, ORCHID, and more.
    (Ipv6Addr::new(0x2001, 0, 0, 0, 0, 0, 0, 0), 23),
    // For documents (RFC 3849, RFC 9637).
    (Ipv6Addr::new(0x2001, 0xdb8, 0, 0, 0, 0, 0, 0), 32),
    (Ipv6Addr::new(0x3fff, 0, 0, 0, 0, 0, 0, 0), 20),
    // 6to4, which wraps any address of IPv4; its relays are given up (RFC 7526).
    (Ipv6Addr::new(0x2002, 0, 0, 0, 0, 0, 0, 0), 16),
];

/// What is given out to the public of IPv6 (RFC 4291).
const GIVEN_OUT: (Ipv6Addr, u32) = (Ipv6Addr::new(0x2000, 0, 0, 0, 0, 0, 0, 0), 3);
/// How a network without IPv4 writes the addresses of IPv4 (NAT64, RFC 6052).
const NAT64: (Ipv6Addr, u32) = (Ipv6Addr::new(0x64, 0xff9b, 0, 0, 0, 0, 0, 0), 96);

/// Whether an address is one of the public internet: not of this machine, its
/// link, a private network, many at once, documents, or a protocol's own.
///
/// ```
/// use weather::feeds::reach::is_public;
/// assert!(is_public("157.249.81.141".parse().unwrap()));
/// assert!(!is_public("169.254.169.254".parse().unwrap()));
/// assert!(!is_public("::ffff:127.0.0.1".parse().unwrap()));
/// ```
pub fn is_public(address: IpAddr) -> bool {
    match address {
        IpAddr::V4(address) => is_public_v4(address),
        // On a network without IPv4 this is how all of IPv4 is reached.
        IpAddr::V6(address) if lies_in_v6(address, NAT64) => {
            is_public_v4(Ipv4Addr::from((address.to_bits() & u128::from(u32::MAX)) as u32))
        }
        IpAddr::V6(address) => {
            lies_in_v6(address, GIVEN_OUT) && !V6.iter().any(|range| lies_in_v6(address, *range))
        }
    }
}

fn is_public_v4(address: Ipv4Addr) -> bool {
    !V4.iter().any(|(first, bits)| (address.to_bits() ^ first.to_bits()).leading_zeros() >= *bits)
}

fn lies_in_v6(address: Ipv6Addr, (first, bits): (Ipv6Addr, u32)) -> bool {
    (address.to_bits() ^ first.to_bits()).leading_zeros() >= bits
}
