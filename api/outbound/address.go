package outbound

import (
	"net/netip"
	"net/url"
	"strconv"
	"strings"
)

// MaxAddress is the longest address that is used, in bytes: what every program
// on the way is known to bear (RFC 9110, 4.1, asks for 8000 and more; common
// practice stays under 2000).
const MaxAddress = 2000

// maxHost is the longest name of a host, in bytes (RFC 1035, 2.3.4).
const maxHost = 253

// Check says whether raw is an address that the client would use, without
// asking anybody where its name leads. It returns an *Error with the fault
// BadAddress or NotPublic.
func (c *Client) Check(raw string) error {
	_, err := c.parse(raw)
	return err
}

func (c *Client) parse(raw string) (*url.URL, error) {
	if len(raw) > MaxAddress {
		return nil, badAddress("", "is longer than "+itoa(MaxAddress)+" characters")
	}
	u, err := url.Parse(raw)
	if err != nil {
		return nil, badAddress("", "cannot be read")
	}
	host := u.Hostname()
	if u.Opaque != "" || host == "" || len(host) > maxHost || strings.ContainsAny(host, " \t%") && !isNumeric(host) {
		return nil, badAddress("", "names no host")
	}
	if u.User != nil {
		return nil, badAddress(host, "holds a user name or password")
	}
	here := c.loopback && isHere(host)
	if u.Scheme != "https" && (u.Scheme != "http" || !here) {
		return nil, badAddress(host, "does not begin with https://")
	}
	if p := u.Port(); p != "" && p != "443" && !here {
		return nil, badAddress(host, "names a port other than 443")
	}
	if !here && !mayBePublic(host) {
		return nil, &Error{Fault: NotPublic, Host: host, What: host + " is not a public address"}
	}
	u.Fragment, u.RawFragment = "", ""
	return u, nil
}

func badAddress(host, clause string) *Error {
	return &Error{Fault: BadAddress, Host: host, What: "the address " + clause}
}

func isNumeric(host string) bool { _, err := netip.ParseAddr(host); return err == nil }

// isHere says whether host is written as this machine.
func isHere(host string) bool {
	if a, err := netip.ParseAddr(host); err == nil {
		return loopback(a)
	}
	return strings.EqualFold(strings.TrimSuffix(host, "."), "localhost")
}

// mayBePublic says of a numeric address whether it is public, and of a name
// whether it is one that can be.
func mayBePublic(host string) bool {
	if a, err := netip.ParseAddr(host); err == nil {
		return public(a)
	}
	name := strings.ToLower(strings.TrimSuffix(host, "."))
	// RFC 6761, 6762 and 8375: never names of the public Internet
	for _, local := range []string{"localhost", "local", "internal", "home.arpa"} {
		if name == local || strings.HasSuffix(name, "."+local) {
			return false
		}
	}
	return true
}

func itoa(n int) string { return strconv.Itoa(n) }
