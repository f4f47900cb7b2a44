package outbound

import (
	"bytes"
	"compress/gzip"
	"context"
	"crypto/x509"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"net/netip"
	"net/url"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

const secret = "private-7c1f-calendar"

// fault requires an *Error of a kind that gives nothing of the address away.
func fault(t *testing.T, err error, want Fault) *Error {
	t.Helper()
	e, ok := errors.AsType[*Error](err)
	require.True(t, ok, "got %T: %v", err, err)
	require.Equal(t, want, e.Fault, e.What)
	require.NotContains(t, fmt.Sprintf("%v %+v %#v", e, e, *e), secret)
	return e
}

// elsewhere is a client for which every name leads to the addresses given, and a
// connection to any of them ends at the server.
func elsewhere(t *testing.T, s *httptest.Server, addresses ...string) *Client {
	o := Options{}
	if s != nil && s.Certificate() != nil {
		o.Roots = x509.NewCertPool()
		o.Roots.AddCert(s.Certificate())
	}
	c := NewClient(o)
	c.lookup = func(context.Context, string) ([]netip.Addr, error) {
		var out []netip.Addr
		for _, a := range addresses {
			out = append(out, netip.MustParseAddr(a))
		}
		return out, nil
	}
	c.dial = func(ctx context.Context, network, address string) (net.Conn, error) {
		to := netip.MustParseAddrPort(address)
		require.True(t, public(to.Addr()) && to.Port() == 443, "dialled %s", to)
		return (&net.Dialer{}).DialContext(ctx, network, s.Listener.Addr().String())
	}
	return c
}

func here(t *testing.T, h http.HandlerFunc) (*Client, string) {
	s := httptest.NewServer(h)
	t.Cleanup(s.Close)
	return NewClient(Options{Loopback: true}), s.URL + "/" + secret + "?k=" + secret
}

func TestAddressesThatAreNotPublicAreRefused(t *testing.T) {
	for _, a := range []string{
		"0.0.0.0", "0.1.2.3", "10.0.0.1", "10.255.255.255", "100.64.0.1", "100.127.255.254", "127.0.0.1", "127.255.0.1",
		"169.254.169.254", "172.16.0.1", "172.31.255.255", "192.0.0.8", "192.0.2.1", "192.88.99.1", "192.168.1.1", "198.18.0.1",
		"198.19.255.255", "198.51.100.7", "203.0.113.9", "224.0.0.1", "239.255.255.255", "240.0.0.1", "255.255.255.255",
		"::", "::1", "::7f00:1", "::ffff:127.0.0.1", "::ffff:10.0.0.1", "::ffff:169.254.169.254", "64:ff9b::10.0.0.1", "64:ff9b::127.0.0.1",
		"64:ff9b:1::1", "100::1", "2001::1", "2001:2::1", "2001:10::1", "2001:db8::1", "2002:7f00:1::", "2002:a00:1::1",
		"3fff::1", "5f00::1", "fc00::1", "fd00:ec2::254", "fe80::1", "fec0::1", "ff02::1",
	} {
		require.False(t, public(netip.MustParseAddr(a)), a)
		err := elsewhere(t, nil, "93.184.215.14", a).do(t)
		_ = fault(t, err, NotPublic)
	}
	require.False(t, public(netip.MustParseAddr("2606:2800:21f::1").WithZone("eth0")))
	for _, a := range []string{
		"1.1.1.1", "9.255.255.255", "11.0.0.0", "100.63.255.255", "100.128.0.0", "126.255.255.255", "128.0.0.0", "172.15.255.255",
		"172.32.0.0", "192.0.1.0", "198.17.255.255", "198.20.0.0", "223.255.255.255", "2606:2800:21f::1", "2a00::1", "::ffff:1.1.1.1", "64:ff9b::1.1.1.1",
	} {
		require.True(t, public(netip.MustParseAddr(a)), a)
	}
}

func (c *Client) do(t *testing.T) error {
	t.Helper()
	_, err := c.Do(t.Context(), Request{Address: "https://calendars.example/" + secret})
	return err
}

func TestAddressesThatMayNotBeUsedAreRefusedWithoutAskingAnybody(t *testing.T) {
	c := NewClient(Options{})
	c.lookup = func(context.Context, string) ([]netip.Addr, error) {
		require.Fail(t, "looked a name up")
		return nil, nil
	}
	for _, tt := range []struct {
		address string
		want    Fault
	}{
		{"", BadAddress}, {"calendars.example", BadAddress}, {"https://", BadAddress}, {"https:///" + secret, BadAddress},
		{"https:calendars.example", BadAddress}, {"http://calendars.example/" + secret, BadAddress}, {"ftp://calendars.example/", BadAddress},
		{"file:///etc/passwd", BadAddress}, {"gopher://calendars.example", BadAddress}, {"javascript:alert(1)", BadAddress},
		{"https://user:" + secret + "@calendars.example/", BadAddress}, {"https://user@calendars.example/", BadAddress},
		{"https://calendars.example:8443/", BadAddress}, {"https://calendars.example:22/", BadAddress}, {"https://calendars.example:0443/", BadAddress},
		{"https://calendars.example/" + strings.Repeat("a", MaxAddress), BadAddress}, {"https://a b/", BadAddress},
		{"https://calendars.example/\r\nHost: other", BadAddress}, {"https://calendars.example/\x00", BadAddress},
		{"https://" + strings.Repeat("a", 254) + "/", BadAddress},
		{"https://127.0.0.1/" + secret, NotPublic}, {"https://[::1]/", NotPublic}, {"https://[::ffff:127.0.0.1]/", NotPublic},
		{"https://10.0.0.1/", NotPublic}, {"https://169.254.169.254/latest", NotPublic}, {"https://[fe80::1%25eth0]/", NotPublic},
		{"https://localhost/", NotPublic}, {"https://LOCALHOST./", NotPublic}, {"https://a.localhost/", NotPublic},
		{"https://printer.local/", NotPublic}, {"https://metadata.google.internal/", NotPublic}, {"https://[2606:2800::1%25eth0]/", NotPublic},
		{"http://127.0.0.1/", BadAddress}, {"https://0.0.0.0/", NotPublic},
	} {
		_ = fault(t, c.Check(tt.address), tt.want)
		_, err := c.Do(t.Context(), Request{Address: tt.address})
		_ = fault(t, err, tt.want)
	}
	require.NoError(t, c.Check("https://calendars.example/"+secret+".ics?a=b#c"))
	require.NoError(t, c.Check("https://calendars.example:443/"))
	require.NoError(t, c.Check("HTTPS://CALENDARS.example"))
	require.NoError(t, c.Check("https://1.1.1.1/"))
}

func TestANameThatLeadsElsewhereTheSecondTimeReachesNobody(t *testing.T) {
	var reached atomic.Int32
	s := httptest.NewTLSServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { reached.Add(1) }))
	defer s.Close()
	c := elsewhere(t, s)
	c.dial = NewClient(Options{}).dial // the real one
	asked := 0
	c.lookup = func(context.Context, string) ([]netip.Addr, error) {
		if asked++; asked == 1 {
			return []netip.Addr{netip.MustParseAddr("93.184.215.14")}, nil
		}
		return []netip.Addr{netip.MustParseAddr("127.0.0.1")}, nil
	}
	list, err := c.addresses(t.Context(), "calendars.example") // the answer that a check would have believed
	require.NoError(t, err)
	require.True(t, c.may(list[0], "443"))
	_ = fault(t, c.do(t), NotPublic)
	require.Equal(t, 2, asked)
	require.Zero(t, reached.Load())
}

func TestTheNumericAddressIsCheckedRightBeforeConnecting(t *testing.T) {
	s := httptest.NewServer(http.NotFoundHandler())
	defer s.Close()
	_, err := NewClient(Options{}).dial(t.Context(), "tcp", s.Listener.Addr().String())
	_ = fault(t, err, NotPublic)
	conn, err := NewClient(Options{Loopback: true}).dial(t.Context(), "tcp", s.Listener.Addr().String())
	require.NoError(t, err)
	require.NoError(t, conn.Close())
	for _, address := range []string{"10.0.0.1:443", "93.184.215.14:80", "[fd00::1]:443", "nonsense"} {
		require.Error(t, NewClient(Options{Loopback: true}).control(t.Context(), "tcp", address, nil), address)
	}
	require.NoError(t, NewClient(Options{}).control(t.Context(), "tcp", "93.184.215.14:443", nil))
}

func TestAPublicServerIsReachedWithItsCertificateChecked(t *testing.T) {
	s := httptest.NewTLSServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("ETag", `"1"`)
		_, _ = io.WriteString(w, r.Host+" "+r.Header.Get("Accept-Encoding")+" "+r.UserAgent()+" "+r.Header.Get("Cookie"))
	}))
	defer s.Close()
	c := elsewhere(t, s, "93.184.215.14")
	res, err := c.Do(t.Context(), Request{Address: "https://example.com/" + secret, Header: http.Header{"Cookie": {"a=b"}, "Host": {"other"}, "Accept-Encoding": {"br"}}})
	require.NoError(t, err)
	require.Equal(t, 200, res.Status)
	require.Equal(t, "example.com gzip chairblock ", string(res.Body))
	require.Equal(t, `"1"`, res.Header.Get("ETag"))

	err = c.do(t) // another name than the certificate's
	_ = fault(t, err, BadCertificate)
	c = elsewhere(t, s, "93.184.215.14")
	c.transport.TLSClientConfig.RootCAs = x509.NewCertPool()
	_, err = c.Do(t.Context(), Request{Address: "https://example.com/" + secret})
	_ = fault(t, err, BadCertificate)
}

func TestNothingOfTheEnvironmentStandsBetween(t *testing.T) {
	t.Setenv("HTTPS_PROXY", "http://127.0.0.1:1")
	t.Setenv("HTTP_PROXY", "http://127.0.0.1:1")
	c, at := here(t, func(http.ResponseWriter, *http.Request) {})
	require.Nil(t, c.transport.Proxy)
	_, err := c.Do(t.Context(), Request{Address: at})
	require.NoError(t, err)
}

func TestOnlyATriedOutServiceReachesItsOwnMachine(t *testing.T) {
	c, at := here(t, func(w http.ResponseWriter, r *http.Request) { _, _ = io.Copy(w, r.Body) })
	res, err := c.Do(t.Context(), Request{Method: "POST", Address: at, Body: []byte("hello")})
	require.NoError(t, err)
	require.Equal(t, "hello", string(res.Body))
	_, err = NewClient(Options{}).Do(t.Context(), Request{Address: at})
	_ = fault(t, err, BadAddress)
	_, err = NewClient(Options{}).Do(t.Context(), Request{Address: strings.Replace(at, "http:", "https:", 1)})
	require.Error(t, err)
	for _, other := range []string{"http://10.0.0.1/", "https://10.0.0.1/", "https://192.168.0.1:443/", "http://example.com/", "https://example.com:8443/"} {
		require.Error(t, c.Check(other), other)
	}
	c.lookup = func(context.Context, string) ([]netip.Addr, error) {
		return []netip.Addr{netip.MustParseAddr("192.168.0.1")}, nil
	}
	_ = fault(t, c.do(t), NotPublic)
}

func TestEveryRedirectIsCheckedLikeTheFirstAddress(t *testing.T) {
	var inside atomic.Int32
	private := httptest.NewServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { inside.Add(1) }))
	defer private.Close()
	to := ""
	s := httptest.NewTLSServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.URL.Path == "/end" {
			_, _ = fmt.Fprint(w, r.Header)
			return
		}
		w.Header().Set("Location", to)
		w.Header().Set("Set-Cookie", "a=b")
		w.WriteHeader(http.StatusFound)
	}))
	defer s.Close()
	c := elsewhere(t, s, "93.184.215.14")
	get := func() (*Response, error) {
		return c.Do(t.Context(), Request{Address: "https://example.com/" + secret, Redirects: 3,
			Header: http.Header{"Authorization": {"Bearer x"}, "If-None-Match": {`"1"`}, "X-Key": {"x"}}})
	}
	for _, to = range []string{
		private.URL, strings.Replace(private.URL, "http:", "https:", 1), "http://example.com/end", "https://10.0.0.1/", "https://user:pw@example.com/end",
		"https://example.com:8443/", "file:///etc/passwd", "", "https://%zz", "//127.0.0.1/end", "https://example.com/" + strings.Repeat("x", MaxAddress),
	} {
		_, err := get()
		_ = fault(t, err, BadRedirect)
	}
	require.Zero(t, inside.Load())
	for _, to = range []string{"/end", "https://example.com/end", "//example.com/end", "https://www.example.com/end"} {
		res, err := get()
		require.NoError(t, err, to)
		for _, no := range []string{"Bearer", "X-Key", "Cookie", "Referer"} {
			require.NotContains(t, string(res.Body), no)
		}
		require.Contains(t, string(res.Body), `If-None-Match:["1"]`)
	}
	to = "/again/" + secret
	_, err := get()
	_ = fault(t, err, TooManyRedirects)
}

func TestNobodyIsSentOnFromHTTPSToHTTP(t *testing.T) {
	plain := httptest.NewServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { t.Error("reached") }))
	defer plain.Close()
	s := httptest.NewTLSServer(http.RedirectHandler(plain.URL, http.StatusFound))
	defer s.Close()
	roots := x509.NewCertPool()
	roots.AddCert(s.Certificate())
	c := NewClient(Options{Loopback: true, Roots: roots}) // where both may be reached as such
	_, err := c.Do(t.Context(), Request{Address: s.URL + "/" + secret, Redirects: 3})
	_ = fault(t, err, BadRedirect)
}

func TestRedirectsAreFollowedAsOftenAsAllowed(t *testing.T) {
	c, at := here(t, func(w http.ResponseWriter, r *http.Request) {
		if n := r.URL.Query().Get("n"); len(n) < 3 {
			http.Redirect(w, r, "/?n="+n+"x", http.StatusMovedPermanently)
			return
		}
		_, _ = io.WriteString(w, "there")
	})
	res, err := c.Do(t.Context(), Request{Address: at, Redirects: 3})
	require.NoError(t, err)
	require.Equal(t, "there", string(res.Body))
	_, err = c.Do(t.Context(), Request{Address: at, Redirects: 2})
	_ = fault(t, err, TooManyRedirects)
	res, err = c.Do(t.Context(), Request{Address: at})
	require.NoError(t, err)
	require.Equal(t, http.StatusMovedPermanently, res.Status)
	res, err = c.Do(t.Context(), Request{Method: "POST", Address: at, Redirects: 3})
	require.NoError(t, err)
	require.Equal(t, http.StatusMovedPermanently, res.Status, "what is posted is never posted elsewhere")
}

func TestABodyEndsAtTheLimit(t *testing.T) {
	c, at := here(t, func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Content-Type", "text/calendar")
		switch r.URL.Query().Get("as") {
		case "bomb": // 100 MB that travel as 100 KB
			w.Header().Set("Content-Encoding", "gzip")
			z := gzip.NewWriter(w)
			for range 100 {
				if _, err := z.Write(make([]byte, 1<<20)); err != nil {
					return
				}
			}
			_ = z.Close()
		case "endless":
			for {
				if _, err := w.Write(bytes.Repeat([]byte("x"), 1<<16)); err != nil {
					return
				}
			}
		case "fits":
			_, _ = w.Write(make([]byte, 1<<20))
		case "packed":
			w.Header().Set("Content-Encoding", "gzip")
			z := gzip.NewWriter(w)
			_, _ = io.WriteString(z, "unpacked")
			_ = z.Close()
		case "broken":
			w.Header().Set("Content-Encoding", "gzip")
			_, _ = io.WriteString(w, "not packed at all, whatever the header says")
		}
	})
	get := func(as string, cut bool) (*Response, error) {
		return c.Do(t.Context(), Request{Address: at + "&as=" + as, MaxBytes: 1 << 20, Cut: cut})
	}
	for _, as := range []string{"bomb", "endless"} {
		_, err := get(as, false)
		require.Contains(t, fault(t, err, TooLarge).What, "1048576 bytes")
		res, err := get(as, true)
		require.NoError(t, err)
		require.Len(t, res.Body, 1<<20)
	}
	res, err := get("fits", false)
	require.NoError(t, err)
	require.Len(t, res.Body, 1<<20)
	res, err = get("packed", false)
	require.NoError(t, err)
	require.Equal(t, "unpacked", string(res.Body))
	_, err = get("broken", false)
	_ = fault(t, err, BadAnswer)
}

func TestASlowServerIsGivenUp(t *testing.T) {
	c, at := here(t, func(w http.ResponseWriter, r *http.Request) {
		if r.URL.Query().Get("as") == "silent" {
			<-r.Context().Done()
			return
		}
		for { // a byte now and then
			if _, err := io.WriteString(w, "x"); err != nil {
				return
			}
			_ = http.NewResponseController(w).Flush()
			select {
			case <-r.Context().Done():
				return
			case <-time.After(20 * time.Millisecond):
			}
		}
	})
	for _, as := range []string{"silent", "trickle"} {
		_, err := c.Do(t.Context(), Request{Address: at + "&as=" + as, Timeout: 200 * time.Millisecond})
		require.ErrorIs(t, fault(t, err, TooSlow), context.DeadlineExceeded)
	}
	ctx, cancel := context.WithCancel(t.Context())
	time.AfterFunc(50*time.Millisecond, cancel)
	_, err := c.Do(ctx, Request{Address: at + "&as=silent"})
	require.ErrorIs(t, fault(t, err, Unreachable), context.Canceled)
}

// raw serves every connection by itself.
func raw(t *testing.T, serve func(net.Conn)) string {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	t.Cleanup(func() { _ = l.Close() })
	go func() {
		for {
			conn, err := l.Accept()
			if err != nil {
				return
			}
			go func() { defer func() { _ = conn.Close() }(); serve(conn) }()
		}
	}()
	return "http://" + l.Addr().String() + "/" + secret
}

func TestWhatIsNotHTTPIsSaidSo(t *testing.T) {
	c := NewClient(Options{Loopback: true})
	for _, tt := range []struct {
		name  string
		serve func(net.Conn)
		want  Fault
	}{
		{"another protocol", func(n net.Conn) { _, _ = io.WriteString(n, "220 mail.example ready\r\n") }, BadAnswer},
		{"hangs up", func(net.Conn) {}, BadAnswer},
		{"half a body", func(n net.Conn) { _, _ = io.WriteString(n, "HTTP/1.1 200 OK\r\nContent-Length: 100\r\n\r\nhalf") }, BadAnswer},
		{"huge header", func(n net.Conn) {
			_, _ = io.WriteString(n, "HTTP/1.1 200 OK\r\nX: "+strings.Repeat("x", maxHeader)+"\r\n\r\n")
			_, _ = io.Copy(io.Discard, n)
		}, TooLarge},
		{"endless headers", func(n net.Conn) {
			_, err := io.WriteString(n, "HTTP/1.1 200 OK\r\n")
			for err == nil {
				_, err = io.WriteString(n, "X-A: "+strings.Repeat("x", 1000)+"\r\n")
			}
		}, TooLarge},
	} {
		t.Run(tt.name, func(t *testing.T) {
			at := raw(t, func(n net.Conn) {
				_, _ = n.Read(make([]byte, 4096)) // the request
				tt.serve(n)
			})
			_, err := c.Do(t.Context(), Request{Address: at})
			_ = fault(t, err, tt.want)
		})
	}
	closed, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	require.NoError(t, closed.Close())
	_, err = c.Do(t.Context(), Request{Address: "http://" + closed.Addr().String() + "/" + secret})
	_ = fault(t, err, Unreachable)
	_, err = c.Do(t.Context(), Request{Address: "https://" + strings.TrimPrefix(raw(t, func(n net.Conn) { _, _ = io.WriteString(n, "plain") }), "http://")})
	require.Error(t, err)
}

func TestANameThatLeadsNowhereIsSaidSo(t *testing.T) {
	c := elsewhere(t, nil)
	_ = fault(t, c.do(t), UnknownHost)
	c.lookup = func(context.Context, string) ([]netip.Addr, error) {
		return nil, &net.DNSError{IsNotFound: true, Name: secret}
	}
	_ = fault(t, c.do(t), UnknownHost)
}

func TestWordsDoNotTellWhetherAnInnerNameIsThere(t *testing.T) {
	for _, loopback := range []bool{false, true} {
		there, missing := elsewhere(t, nil, "10.1.2.3"), elsewhere(t, nil)
		there.loopback, missing.loopback = loopback, loopback
		inner, none := fault(t, there.do(t), NotPublic), fault(t, missing.do(t), UnknownHost)
		require.Equal(t, loopback, inner.Error() != none.Error(), "whoever tries things out reads why: %s; %s", inner, none)
	}
}

func TestAnErrorOfTheTransportDoesNotGetOut(t *testing.T) {
	err := explain(t.Context(), "calendars.example", &url.Error{Op: "Get", URL: "https://calendars.example/" + secret, Err: errors.New(secret)})
	_ = fault(t, err, BadAnswer)
	require.NotErrorAs(t, err, new(*url.Error))
}
