package outbound

import (
	"bytes"
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"io"
	"net"
	"net/http"
	"net/netip"
	"net/url"
	"strings"
	"syscall"
	"time"
)

// Limits of an exchange that asks for no others (judgement).
const (
	// DefaultTimeout is for a whole exchange with all its redirects.
	DefaultTimeout = 10 * time.Second
	// DefaultBytes are those of the body, after it is unpacked.
	DefaultBytes = 5 << 20
	maxHeader    = 64 << 10        // bytes of all headers of an answer
	dialTimeout  = 4 * time.Second // of one of several addresses
)

// Options are the ways in which a client differs from the usual.
type Options struct {
	// Loopback lets the client reach this machine too, by http or https on any
	// port: for trying things out, never for a service that others reach.
	Loopback bool
	// Roots are the certificate authorities that are believed, nil for those of
	// the machine.
	Roots *x509.CertPool
}

// Client exchanges with public addresses. It is safe for use by many goroutines
// and holds no connection open between exchanges: every one is dialled and
// checked anew.
type Client struct {
	loopback  bool
	transport *http.Transport
	lookup    func(ctx context.Context, host string) ([]netip.Addr, error)
	dial      func(ctx context.Context, network, address string) (net.Conn, error)
}

// NewClient makes a client.
func NewClient(o Options) *Client {
	c := &Client{loopback: o.Loopback}
	c.lookup = func(ctx context.Context, host string) ([]netip.Addr, error) {
		return net.DefaultResolver.LookupNetIP(ctx, "ip", host)
	}
	dialer := &net.Dialer{Timeout: dialTimeout, ControlContext: c.control}
	c.dial = dialer.DialContext
	http1 := new(http.Protocols)
	http1.SetHTTP1(true)
	c.transport = &http.Transport{
		DialContext:            c.connect, // Proxy is nil: nothing from the environment
		TLSClientConfig:        &tls.Config{MinVersion: tls.VersionTLS12, RootCAs: o.Roots},
		Protocols:              http1,
		DisableKeepAlives:      true,
		MaxResponseHeaderBytes: maxHeader,
	}
	return c
}

// Request is one exchange.
type Request struct {
	Method    string // "" is GET
	Address   string
	Header    http.Header   // Host, Accept-Encoding, Cookie and Referer are not sent
	Body      []byte        // at most one of Body and Redirects
	Redirects int           // how often a GET is sent on at most; 0: the 3xx itself is the answer
	Timeout   time.Duration // 0 is DefaultTimeout
	MaxBytes  int           // of the answer's body after it is unpacked; 0 is DefaultBytes
	Cut       bool          // a longer body is cut off rather than refused
}

// Response is an answer of any status.
type Response struct {
	Status int
	Header http.Header
	Body   []byte
}

// Do carries out one exchange, and returns an *Error when there was no answer
// that may be used.
func (c *Client) Do(ctx context.Context, r Request) (*Response, error) {
	if r.Timeout == 0 {
		r.Timeout = DefaultTimeout
	}
	if r.MaxBytes == 0 {
		r.MaxBytes = DefaultBytes
	}
	ctx, cancel := context.WithTimeout(ctx, r.Timeout)
	defer cancel()
	u, err := c.parse(r.Address)
	if err != nil {
		return nil, err
	}
	for hop := 0; ; hop++ {
		out, next, err := c.once(ctx, r, u, hop)
		if err != nil || next == nil {
			return out, err
		}
		u = next
	}
}

// once asks one host, and says where it sends the client on.
func (c *Client) once(ctx context.Context, r Request, u *url.URL, hop int) (*Response, *url.URL, error) {
	req, err := http.NewRequestWithContext(ctx, r.Method, u.String(), bytes.NewReader(r.Body))
	if err != nil {
		return nil, nil, badAddress(u.Hostname(), "cannot be used")
	}
	req.Header = headerFor(r.Header, hop)
	res, err := c.transport.RoundTrip(req)
	if err != nil {
		return nil, nil, headerFault(ctx, u.Hostname(), err)
	}
	defer func() { _ = res.Body.Close() }()
	if r.Redirects > 0 && req.Method == http.MethodGet && sentOn(res.StatusCode) {
		next, err := c.next(u, res.Header.Get("Location"))
		if err == nil && hop >= r.Redirects {
			err = &Error{Fault: TooManyRedirects, Host: u.Hostname(), What: u.Hostname() + " sends on more than " + itoa(r.Redirects) + " times"}
		}
		return nil, next, err
	}
	body, err := io.ReadAll(io.LimitReader(res.Body, int64(r.MaxBytes)+1))
	if len(body) > r.MaxBytes {
		if !r.Cut {
			return nil, nil, &Error{Fault: TooLarge, Host: u.Hostname(), What: "the answer of " + u.Hostname() + " is larger than " + itoa(r.MaxBytes) + " bytes"}
		}
		body, err = body[:r.MaxBytes], nil
	}
	if err != nil {
		return nil, nil, explain(ctx, u.Hostname(), err)
	}
	return &Response{Status: res.StatusCode, Header: res.Header, Body: body}, nil, nil
}

func sentOn(status int) bool {
	switch status {
	case http.StatusMovedPermanently, http.StatusFound, http.StatusSeeOther, http.StatusTemporaryRedirect, http.StatusPermanentRedirect:
		return true
	}
	return false
}

// next is where a host sends the client on: by the same rules as the first
// address, and never from https to http.
func (c *Client) next(from *url.URL, location string) (*url.URL, error) {
	bad := &Error{Fault: BadRedirect, Host: from.Hostname(), What: from.Hostname() + " sends on to an address that may not be used"}
	ref, err := from.Parse(location)
	if location == "" || err != nil {
		return nil, bad
	}
	to, err := c.parse(ref.String())
	if err != nil || from.Scheme == "https" && to.Scheme != "https" {
		return nil, bad
	}
	return to, nil
}

// carriedOn are the headers that go along when a host sends the client on: none
// that could be a credential.
var carriedOn = []string{"Accept", "If-None-Match", "If-Modified-Since"}

func headerFor(given http.Header, hop int) http.Header {
	h := http.Header{"User-Agent": {"chairblock"}}
	if hop > 0 {
		for _, name := range carriedOn {
			if v := given.Values(name); len(v) > 0 {
				h[name] = v
			}
		}
		return h
	}
	for name, v := range given {
		h[http.CanonicalHeaderKey(name)] = v
	}
	for _, name := range []string{"Host", "Accept-Encoding", "Cookie", "Referer"} {
		delete(h, name)
	}
	return h
}

// headerFault tells headers that are too large apart: the transport has no error
// of its own for them.
func headerFault(ctx context.Context, host string, err error) *Error {
	if ctx.Err() == nil && strings.Contains(err.Error(), "headers exceeded") {
		return &Error{Fault: TooLarge, Host: host, What: "the answer of " + host + " has headers of more than " + itoa(maxHeader) + " bytes"}
	}
	return explain(ctx, host, err)
}

// connect dials the first address of a host that answers, when all its
// addresses may be dialled: a name that leads to a public and to a private
// address is a trap.
func (c *Client) connect(ctx context.Context, network, address string) (net.Conn, error) {
	host, port, err := net.SplitHostPort(address)
	if err != nil {
		return nil, err
	}
	list, err := c.addresses(ctx, host)
	if err != nil {
		return nil, err
	}
	for _, a := range list {
		if !c.may(a, port) {
			return nil, c.nowhere(NotPublic, host, "leads to an address that is not public")
		}
	}
	var last error
	for _, a := range list {
		conn, err := c.dial(ctx, network, net.JoinHostPort(a.String(), port))
		if err == nil {
			return conn, nil
		}
		last = err
	}
	return nil, last
}

func (c *Client) addresses(ctx context.Context, host string) ([]netip.Addr, error) {
	if a, err := netip.ParseAddr(host); err == nil {
		return []netip.Addr{a}, nil
	}
	list, err := c.lookup(ctx, host)
	if err != nil && ctx.Err() != nil {
		return nil, ctx.Err()
	}
	if err != nil || len(list) == 0 {
		return nil, c.nowhere(UnknownHost, host, "is not the name of a server that can be found")
	}
	return list, nil
}

// may says whether a connection to an address may be opened.
func (c *Client) may(a netip.Addr, port string) bool {
	return public(a) && port == "443" || c.loopback && loopback(a)
}

// control is asked with the numeric address right before every connection:
// whatever the steps before believed.
func (c *Client) control(_ context.Context, _, address string, _ syscall.RawConn) error {
	to, err := netip.ParseAddrPort(address)
	if err != nil || !c.may(to.Addr(), itoa(int(to.Port()))) {
		return errors.Join(&Error{Fault: NotPublic, What: "the address is not public"}, err)
	}
	return nil
}
