package pages

import (
	"compress/gzip"
	"io"
	"math"
	"net/http"
	"net/http/httptest"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestAssetsAreServedUnderTheirHash(t *testing.T) {
	for name, contentType := range map[string]string{
		"page.css": "text/css; charset=utf-8", "board.js": "text/javascript; charset=utf-8", "mark.svg": "image/svg+xml",
	} {
		p := AssetPath(name)
		require.Regexp(t, `^/assets/[a-z]+-[0-9a-f]{16}\.[a-z]+$`, p)
		w := httptest.NewRecorder()
		Assets().ServeHTTP(w, httptest.NewRequest(http.MethodGet, p, nil))
		require.Equal(t, http.StatusOK, w.Code)
		require.Equal(t, contentType, w.Header().Get("Content-Type"))
		require.Contains(t, w.Header().Get("Cache-Control"), "immutable")
		require.Equal(t, "nosniff", w.Header().Get("X-Content-Type-Options"))
		require.NotEmpty(t, w.Body.String())

		w = httptest.NewRecorder()
		Assets().ServeHTTP(w, httptest.NewRequest(http.MethodHead, p, nil))
		require.Equal(t, http.StatusOK, w.Code)
		require.Empty(t, w.Body.String())

		w = httptest.NewRecorder()
		Assets().ServeHTTP(w, httptest.NewRequest(http.MethodPost, p, nil))
		require.Equal(t, http.StatusMethodNotAllowed, w.Code)
	}
	require.Empty(t, AssetPath("other.css"))
}

func TestOtherAssetPathsAreNotFound(t *testing.T) {
	for _, p := range []string{"/assets/", "/assets/page.css", "/assets/page-0000000000000000.css", "/assets/../doc.go", "/assets"} {
		w := httptest.NewRecorder()
		Assets().ServeHTTP(w, httptest.NewRequest(http.MethodGet, p, nil))
		require.Equal(t, http.StatusNotFound, w.Code, p)
	}
}

func TestThePolicyAllowsNothingInlineAndNothingFromElsewhere(t *testing.T) {
	for _, bad := range []string{"unsafe", "data:", "http", "*", "nonce"} {
		require.NotContains(t, ContentSecurityPolicy, bad)
	}
	require.Contains(t, ContentSecurityPolicy, "default-src 'none'")
	for name := range assetPaths {
		body := strings.ReplaceAll(string(assetsByPath[AssetPath(name)].body), "http://www.w3.org/2000/svg", "")
		require.NotRegexp(t, `https?:|url\(|@import`, body, "%s fetches something", name)
	}
}

// palettes returns the colours of the light and of the dark set.
func palettes(t *testing.T) (light, dark map[string]string) {
	t.Helper()
	css := string(readAsset("drawing.css"))
	blocks := regexp.MustCompile(`(?s):root \{(.*?)\}`).FindAllStringSubmatch(css, -1)
	require.GreaterOrEqual(t, len(blocks), 4)
	parse := func(s string) map[string]string {
		m := map[string]string{}
		for _, v := range regexp.MustCompile(`--([a-z]+): (#[0-9a-f]{6})`).FindAllStringSubmatch(s, -1) {
			m[v[1]] = v[2]
		}
		return m
	}
	require.Equal(t, parse(blocks[0][1]), parse(blocks[2][1]), "print uses the light set")
	return parse(blocks[0][1]), parse(blocks[1][1])
}

// luminance and contrast are those of WCAG 2.2.
func luminance(t *testing.T, hex string) float64 {
	t.Helper()
	n, err := strconv.ParseUint(strings.TrimPrefix(hex, "#"), 16, 32)
	require.NoError(t, err)
	lin := func(v uint64) float64 {
		c := float64(v&0xff) / 255
		if c <= 0.04045 {
			return c / 12.92
		}
		return math.Pow((c+0.055)/1.055, 2.4)
	}
	return 0.2126*lin(n>>16) + 0.7152*lin(n>>8) + 0.0722*lin(n)
}

func contrast(t *testing.T, a, b string) float64 {
	t.Helper()
	x, y := luminance(t, a), luminance(t, b)
	return (max(x, y) + 0.05) / (min(x, y) + 0.05)
}

func TestThePaletteCanBeRead(t *testing.T) {
	light, dark := palettes(t)
	for name, p := range map[string]map[string]string{"light": light, "dark": dark} {
		for _, pair := range []struct {
			fore, back string
			least      float64 // 4.5 for text, 3 for marks (WCAG 2.2, 1.4.3 and 1.4.11)
		}{
			{"ink", "paper", 7},
			{"soft", "paper", 4.5},
			{"pin", "paper", 4.5},
			{"on", "paper", 4.5}, // links of the page
			{"onink", "on", 4.5},
			{"onink", "basin", 4.5},
			{"onink", "chair", 4.5},
			{"off", "paper", 3},
			{"basin", "paper", 3},
			{"chair", "paper", 3},
			{"ink", "paper", 3},
			{"ink", "grid", 4.5}, // thin lines over bars
			{"pin", "grid", 3},
			{"off", "grid", 3},
		} {
			require.GreaterOrEqual(t, contrast(t, p[pair.fore], p[pair.back]), pair.least, "%s: %s on %s", name, pair.fore, pair.back)
		}
	}
	require.InDelta(t, 21, contrast(t, "#000000", "#ffffff"), 1e-9)
}

func TestAssetsAreSentAsGzipToWhoeverTakesIt(t *testing.T) {
	r := httptest.NewRequest(http.MethodGet, AssetPath("page.css"), nil)
	r.Header.Set("Accept-Encoding", "br, gzip")
	w := httptest.NewRecorder()
	Assets().ServeHTTP(w, r)
	require.Equal(t, "gzip", w.Header().Get("Content-Encoding"))
	require.Equal(t, "Accept-Encoding", w.Header().Get("Vary"))
	z, err := gzip.NewReader(w.Body)
	require.NoError(t, err)
	body, err := io.ReadAll(z)
	require.NoError(t, err)
	require.Equal(t, string(readAsset("drawing.css"))+string(readAsset("picture.css"))+string(readAsset("page.css")), string(body))
}
