package outbound

import "net/netip"

// notPublic are the networks that are not part of the public Internet, after the
// IANA special-purpose address registries (RFC 6890 and its updates).
var notPublic = prefixes(
	"0.0.0.0/8",       // this network, RFC 791
	"10.0.0.0/8",      // private, RFC 1918
	"100.64.0.0/10",   // shared by carriers, RFC 6598
	"127.0.0.0/8",     // loopback, RFC 1122
	"169.254.0.0/16",  // link-local, RFC 3927; also the metadata of rented machines
	"172.16.0.0/12",   // private, RFC 1918
	"192.0.0.0/24",    // protocol assignments, RFC 6890
	"192.0.2.0/24",    // documentation, RFC 5737
	"192.88.99.0/24",  // relays of 6to4, given up by RFC 7526
	"192.168.0.0/16",  // private, RFC 1918
	"198.18.0.0/15",   // benchmarks, RFC 2544
	"198.51.100.0/24", // documentation, RFC 5737
	"203.0.113.0/24",  // documentation, RFC 5737
	"224.0.0.0/4",     // multicast, RFC 5771
	"240.0.0.0/4",     // reserved and broadcast, RFC 1112
	"2001::/23",       // protocol assignments, RFC 2928; Teredo and benchmarks are in it
	"2001:db8::/32",   // documentation, RFC 3849
	"2002::/16",       // 6to4, RFC 3056: holds an IPv4 address of any kind
	"3fff::/20",       // documentation, RFC 9637
)

var (
	globalUnicast = netip.MustParsePrefix("2000::/3")     // all of IPv6 that is handed out, RFC 4291
	nat64         = netip.MustParsePrefix("64:ff9b::/96") // holds an IPv4 address, RFC 6052
)

func prefixes(list ...string) []netip.Prefix {
	out := make([]netip.Prefix, len(list))
	for i, s := range list {
		out[i] = netip.MustParsePrefix(s)
	}
	return out
}

// public says whether a is an address of the public Internet. An IPv6 address
// that stands for an IPv4 address is judged by that one.
func public(a netip.Addr) bool {
	if a.Zone() != "" {
		return false
	}
	a = embedded(a)
	if !a.IsValid() || a.Is6() && !globalUnicast.Contains(a) {
		return false
	}
	for _, p := range notPublic {
		if p.Contains(a) {
			return false
		}
	}
	return true
}

// loopback says whether a is this machine, and nothing but this machine.
func loopback(a netip.Addr) bool { return a.Unmap().IsLoopback() }

// embedded is the IPv4 address for which a mapped or translated one stands, or a.
func embedded(a netip.Addr) netip.Addr {
	if nat64.Contains(a) {
		b := a.As16()
		return netip.AddrFrom4([4]byte(b[12:]))
	}
	return a.Unmap()
}
