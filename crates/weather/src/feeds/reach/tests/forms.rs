//! How addresses that are not public can be written.

use std::net::{Ipv4Addr, Ipv6Addr};

use super::*;

/// One or more of each range of IPv4 that is not public.
const V4: &[[u8; 4]] = &[
    [127, 0, 0, 1],
    [127, 0, 0, 2],
    [127, 255, 255, 254],
    [0, 0, 0, 0],
    [0, 1, 2, 3],
    [10, 0, 0, 1],
    [10, 255, 255, 255],
    [100, 64, 0, 1],
    [100, 100, 100, 200],
    [100, 127, 255, 255],
    [168, 63, 129, 16],
    [169, 254, 0, 1],
    [169, 254, 169, 254],
    [172, 16, 0, 1],
    [172, 31, 255, 255],
    [192, 0, 0, 1],
    [192, 0, 0, 192],
    [192, 0, 2, 7],
    [192, 88, 99, 1],
    [192, 168, 0, 1],
    [192, 168, 255, 255],
    [198, 18, 0, 1],
    [198, 19, 255, 255],
    [198, 51, 100, 9],
    [203, 0, 113, 200],
    [224, 0, 0, 1],
    [239, 255, 255, 250],
    [240, 0, 0, 1],
    [255, 255, 255, 255],
];

/// Of IPv6, beside those that wrap an address of IPv4.
const V6: &[&str] = &[
    "[::]",
    "[::1]",
    "[0:0:0:0:0:0:0:1]",
    "[0000:0000:0000:0000:0000:0000:0000:0001]",
    "[::2]",
    "[64:ff9b:1::1]",
    "[64:ff9b:1:ffff::808:808]",
    "[64:ff9b:2::1]",
    "[100::1]",
    "[100:0:0:1::1]",
    "[2001::1]",
    "[2001:1::1]",
    "[2001:2::1]",
    "[2001:10::1]",
    "[2001:20::1]",
    "[2001:1ff:ffff::1]",
    "[2001:db8::1]",
    "[2001:DB8:ffff::1]",
    "[2002:808:808::1]",
    "[3fff::1]",
    "[3fff:fff:ffff::1]",
    "[4000::1]",
    "[5f00::1]",
    "[fc00::1]",
    "[fd00::1]",
    "[fd00:ec2::254]",
    "[fdff:ffff:ffff:ffff:ffff:ffff:ffff:ffff]",
    "[fe80::1]",
    "[febf::1]",
    "[fec0::1]",
    "[ff00::1]",
    "[ff02::1]",
    "[ff0e::1]",
    "[ffff:ffff:ffff:ffff:ffff:ffff:ffff:ffff]",
    "[::ffff:8.8.8.8]",
    "[::8.8.8.8]",
];

/// Of this machine, in ways that only a reader of addresses knows.
const ODD: &[&str] = &[
    "127.0.0.01",
    "127.0.00.1",
    "0177.00.0x0.1",
    "00000177.0.0.1",
    "0x7f.0x0.0x0.0x1",
    "0X7F.1",
    "0x7f.0.0x1",
    "0x0000007f000001",
    "017700000001.",
    "127.1.",
    "0x7f000001.",
    "0",
    "0.",
    "0x",
    "0x0",
    "00",
    "%31%32%37.0.0.1",
    "127%2e0%2e0%2e1",
    "１２７.0.0.1",
    "①②⑦.⓪.⓪.①",
    "127。0。0。1",
    "127．0．0．1",
    "127｡0｡0｡1",
    "user@127.0.0.1",
    "api.met.no@127.0.0.1",
    "api.met.no:443@127.0.0.1",
    "api.met.no%2f@127.0.0.1",
    "\\127.0.0.1",
    "/127.0.0.1",
    "//127.0.0.1",
    "1\t27.0.0.1",
    "127.0.0\n.1",
];

/// An address of IPv4 in all its spellings, and wrapped in IPv6.
fn spellings([a, b, c, d]: [u8; 4]) -> Vec<String> {
    let address = Ipv4Addr::new(a, b, c, d);
    let number = address.to_bits();
    let (three, two) = (number & 0xffff, number & 0xff_ffff);
    let (high, low) = (number >> 16, number & 0xffff);
    let six = |segments: [u32; 8]| format!("[{}]", Ipv6Addr::from(segments.map(|segment| segment as u16)));
    vec![
        address.to_string(),
        format!("{address}."),
        number.to_string(),
        format!("{number:#x}"),
        format!("{number:#X}"),
        format!("0{number:o}"),
        format!("{a:#x}.{b:#x}.{c:#x}.{d:#x}"),
        format!("0{a:o}.0{b:o}.0{c:o}.0{d:o}"),
        format!("{a:#x}.0{b:o}.{c}.{d}"),
        format!("{a}.{b}.{three}"),
        format!("{a}.{two}"),
        format!("{a:#x}.{two:#x}"),
        format!("[::ffff:{address}]"),
        six([0, 0, 0, 0, 0, 0xffff, high, low]),
        format!("[::{address}]"),
        format!("[::ffff:0:{address}]"),
        format!("[64:ff9b::{address}]"),
        six([0x64, 0xff9b, 0, 0, 0, 0, high, low]),
        six([0x64, 0xff9b, 1, 0, 0, 0, high, low]),
        six([0x2002, high, low, 0, 0, 0, 0, 1]),
        // Teredo writes the client's address with its bits turned over.
        six([0x2001, 0, 0x4136, 0xe378, 0x8000, 0x63bf, !high & 0xffff, !low & 0xffff]),
    ]
}

/// Every form, as it stands in an address.
pub(super) fn all() -> Vec<String> {
    let spelled = V4.iter().flat_map(|address| spellings(*address));
    spelled.chain(V6.iter().chain(ODD).map(|text| (*text).to_owned())).collect()
}

#[test]
fn no_form_of_an_address_that_is_not_public_is_asked() {
    let reach = reach(&[]).unwrap();
    let forms = all();
    assert!(forms.len() >= 200, "{} forms", forms.len());
    for scheme in ["http", "https"] {
        for form in &forms {
            let url = Url::parse(&format!("{scheme}://{form}:8080/x"))
                .or_else(|_| Url::parse(&format!("{scheme}://{form}/x")))
                .unwrap_or_else(|error| panic!("{form}: {error}"));
            let told = reach.check(&url);
            assert!(matches!(told, Err(Refused::NotPublic { .. })), "{form}: {url}: {told:?}");
        }
    }
}

#[test]
fn the_ends_of_each_range_are_known() {
    // The last public address before a range, its ends, the first public one behind.
    let ranges = [
        ["0.0.0.0", "0.0.0.0", "0.255.255.255", "1.0.0.0"],
        ["9.255.255.255", "10.0.0.0", "10.255.255.255", "11.0.0.0"],
        ["100.63.255.255", "100.64.0.0", "100.127.255.255", "100.128.0.0"],
        ["126.255.255.255", "127.0.0.0", "127.255.255.255", "128.0.0.0"],
        ["168.63.129.15", "168.63.129.16", "168.63.129.16", "168.63.129.17"],
        ["169.253.255.255", "169.254.0.0", "169.254.255.255", "169.255.0.0"],
        ["172.15.255.255", "172.16.0.0", "172.31.255.255", "172.32.0.0"],
        ["191.255.255.255", "192.0.0.0", "192.0.0.255", "192.0.1.0"],
        ["192.0.1.255", "192.0.2.0", "192.0.2.255", "192.0.3.0"],
        ["192.88.98.255", "192.88.99.0", "192.88.99.255", "192.88.100.0"],
        ["192.167.255.255", "192.168.0.0", "192.168.255.255", "192.169.0.0"],
        ["198.17.255.255", "198.18.0.0", "198.19.255.255", "198.20.0.0"],
        ["198.51.99.255", "198.51.100.0", "198.51.100.255", "198.51.101.0"],
        ["203.0.112.255", "203.0.113.0", "203.0.113.255", "203.0.114.0"],
        ["223.255.255.255", "224.0.0.0", "255.255.255.255", "255.255.255.255"],
        ["2000::", "2001::", "2001:1ff:ffff:ffff:ffff:ffff:ffff:ffff", "2001:200::"],
        ["2001:db7:ffff::", "2001:db8::", "2001:db8:ffff:ffff:ffff:ffff:ffff:ffff", "2001:db9::"],
        ["2001:ffff::", "2002::", "2002:ffff:ffff:ffff:ffff:ffff:ffff:ffff", "2003::"],
        ["3ffe:ffff::", "3fff::", "3fff:fff:ffff:ffff:ffff:ffff:ffff:ffff", "3fff:1000::"],
        ["3fff:ffff:ffff:ffff:ffff:ffff:ffff:ffff", "4000::", "ffff::", "2600::"],
        ["64:ff9b::1.1.1.1", "64:ff9b::127.0.0.0", "64:ff9b::127.255.255.255", "64:ff9b::128.0.0.0"],
        ["2000::1", "1fff:ffff::", "::", "2000::"],
    ];
    for [before, first, last, behind] in ranges {
        let public = |text: &str| is_public(text.parse().unwrap());
        assert!(public(before) || before == first, "{before}");
        assert!(!public(first) && !public(last), "{first} to {last}");
        assert!(public(behind) || behind == last, "{behind}");
    }
}

#[test]
fn public_addresses_are_asked_in_any_spelling() {
    let reach = reach(&[]).unwrap();
    for host in ["8.8.8.8", "134744072", "0x08080808", "010.8.8.8", "[2a00:1450:4001:82f::200e]", "9.9"] {
        assert_eq!(check(&reach, &format!("https://{host}/x")), Ok(()), "{host}");
    }
}

proptest::proptest! {
    #[test]
    fn what_is_wrapped_is_judged_like_what_is_in_it(number: u32) {
        let inner = Ipv4Addr::from_bits(number);
        let public = is_public(IpAddr::V4(inner));
        let wrapped: IpAddr = format!("64:ff9b::{inner}").parse().unwrap();
        proptest::prop_assert_eq!(is_public(wrapped), public);
        proptest::prop_assert!(!is_public(IpAddr::V6(inner.to_ipv6_mapped())));
        if inner.is_private() || inner.is_loopback() || inner.is_link_local() || inner.is_multicast()
            || inner.is_broadcast() || inner.is_documentation() || inner.is_unspecified()
        {
            proptest::prop_assert!(!public);
        }
    }
}
