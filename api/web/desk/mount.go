package desk

import "chairblock/api/web"

// Mount registers the pages.
func Mount(s *web.Site) {
	p := page{s}
	p.mountVisit()
	p.mountToDo()
	p.mountClients()
	p.mountWaiting()
	p.mountRearrange()
	p.mountKept()
	p.mountStock()
}

// page answers requests of this package's pages.
type page struct{ site *web.Site }
