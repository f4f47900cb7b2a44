package main

import (
	"chairblock/api"
	"chairblock/api/web"
	"chairblock/api/web/board"
	"chairblock/api/web/desk"
	"chairblock/api/web/owner"
	"chairblock/api/web/signin"
	"chairblock/api/web/stylist"
)

// mountPages adds every page that people use.
func mountPages(s *api.Server) {
	s.MountPages()
	site := web.New(s)
	signin.Mount(site)
	board.Mount(site)
	desk.Mount(site)
	stylist.Mount(site)
	owner.Mount(site)
}
