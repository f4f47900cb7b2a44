package stylist

import "chairblock/api/web"

// Mount registers the pages.
func Mount(s *web.Site) {
	p := page{s}
	_ = p
}

// page answers requests of this package's pages.
type page struct{ site *web.Site }
