package api

import (
	"net"
	"net/netip"

	"github.com/labstack/echo/v4"
)

// TrustProxies lets requests from some networks say for whom they are made, in
// X-Forwarded-For: those of a reverse proxy, behind which everybody would otherwise
// have one address and be made to wait for what one has tried. Nobody else's word on
// it counts. Call it before the server is used.
func (s *Server) TrustProxies(networks []netip.Prefix) {
	if len(networks) == 0 {
		return
	}
	options := []echo.TrustOption{echo.TrustLoopback(false), echo.TrustLinkLocal(false), echo.TrustPrivateNet(false)}
	for _, n := range networks {
		n = n.Masked()
		options = append(options, echo.TrustIPRange(&net.IPNet{IP: n.Addr().AsSlice(), Mask: net.CIDRMask(n.Bits(), n.Addr().BitLen())}))
	}
	s.echo.IPExtractor = echo.ExtractIPFromXFFHeader(options...)
}
