package stylist

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"net/http"
	"sync"

	"github.com/labstack/echo/v4"

	"chairblock/api/pages"
)

// shell are the assets that a phone keeps for use without a network.
var shell = []string{"page.css", "mark.svg", "stylist.css", "queue.js", "watch.js", "visit.js", "keep.js", "signout.js", "icon-192.png"}

// workerText is the service worker with the addresses of what it keeps. It changes
// with them, so that a browser fetches new ones.
var workerText = sync.OnceValues(func() ([]byte, error) {
	list := []string{home + "away"}
	for _, name := range shell {
		list = append(list, pages.AssetPath(name))
	}
	doc, err := json.Marshal(list)
	if err != nil {
		return nil, err
	}
	script, err := assetFiles.ReadFile("assets/worker.js")
	if err != nil {
		return nil, err
	}
	sum := sha256.Sum256(append(doc, script...))
	return append([]byte("const SHELL = "+string(doc)+";\nconst NAME = \"my-day-shell-"+hex.EncodeToString(sum[:8])+"\";\n"), script...), nil
})

// worker is the service worker. It is the same for everybody.
func worker(c echo.Context) error {
	text, err := workerText()
	if err != nil {
		return err
	}
	c.Response().Header().Set("Cache-Control", "no-cache")
	return c.Blob(http.StatusOK, "text/javascript; charset=utf-8", text)
}

// manifest lets the pages be installed on a phone.
func manifest(c echo.Context) error {
	icon := func(name, sizes, kind string) map[string]string {
		return map[string]string{"src": pages.AssetPath(name), "sizes": sizes, "type": kind}
	}
	doc, err := json.Marshal(map[string]any{"name": "My day at the chair", "short_name": "My day", "start_url": home, "scope": home, "id": home,
		"display": "standalone", "background_color": "#ffffff", "theme_color": "#14202b", "lang": "en",
		"icons": []map[string]string{icon("mark.svg", "any", "image/svg+xml"), icon("icon-192.png", "192x192", "image/png"), icon("icon-512.png", "512x512", "image/png")}})
	if err != nil {
		return err
	}
	c.Response().Header().Set("Cache-Control", "no-cache")
	return c.Blob(http.StatusOK, "application/manifest+json", doc)
}

// away is what a phone shows without a network and without anything that was kept.
func away(c echo.Context) error {
	c.Response().Header().Set("Cache-Control", "no-cache")
	return render(c, http.StatusOK, "away", pages.Frame{Title: "No connection", Styles: []string{"stylist.css"}, Class: "hand"})
}
