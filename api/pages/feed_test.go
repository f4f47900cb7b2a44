package pages

import (
	"bytes"
	"html"
	"image"
	"image/color"
	"image/png"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"rsc.io/qr"
)

const feedSecret = "f_abcdefghij_0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZabcdef_-"

func feedOfOne() FeedPage {
	return FeedPage{Name: "Ada <b> at Corner & Co", About: []string{"It shows <i>your</i> day."}, Late: []string{"Hours late.", "The day page counts."},
		Webcal: "webcal://salon.example/cal/" + feedSecret + ".ics", Address: "https://salon.example/cal/" + feedSecret + ".ics"}
}

func feedOut(t testing.TB, p FeedPage) string {
	t.Helper()
	var buf bytes.Buffer
	require.NoError(t, RenderFeed(&buf, p))
	return buf.String()
}

func TestTheFeedPageHelpsToSubscribe(t *testing.T) {
	p := feedOfOne()
	out := feedOut(t, p)
	for _, want := range []string{
		"<title>Ada &lt;b&gt; at Corner &amp; Co</title>", "<h1>Ada &lt;b&gt; at Corner &amp; Co</h1>", "<p>It shows &lt;i&gt;your&lt;/i&gt; day.</p>",
		`<a href="` + p.Webcal + `">Subscribe`, `readonly autocomplete="off" value="` + p.Address + `"`, `<label for="address">`, "<p>Hours late.</p>",
		`<meta name="referrer" content="no-referrer">`, `<meta name="robots" content="noindex, nofollow">`,
	} {
		require.Contains(t, out, want)
	}
	require.NotContains(t, out, "ZgotmplZ")
	require.NotRegexp(t, `style=|<style|javascript:|\son\w+=`, out, "nothing inline")
	for _, m := range regexp.MustCompile(`(?:src|href)="([^"]*)"`).FindAllStringSubmatch(out, -1) {
		require.True(t, strings.HasPrefix(m[1], AssetPrefix) || m[1] == p.Webcal, "%s is fetched", m[1])
	}
	require.Contains(t, out, `<button type="button" id="copy" hidden>`, "without the script there is no button that does nothing")
}

func TestAFeedPageRefusesWhatIsNoAddress(t *testing.T) {
	for _, spoil := range []func(*FeedPage){
		func(p *FeedPage) { p.Webcal = "javascript:alert(1)" },
		func(p *FeedPage) { p.Webcal = `webcal://x/"><script>` },
		func(p *FeedPage) { p.Webcal += "\n" },
		func(p *FeedPage) { p.Address = "ftp://x" },
		func(p *FeedPage) { p.Address += "é" },
		func(p *FeedPage) { p.Webcal = "webcal://" + strings.Repeat("x", 4000) },
	} {
		p := feedOfOne()
		spoil(&p)
		var buf bytes.Buffer
		require.Error(t, RenderFeed(&buf, p))
		require.Zero(t, buf.Len())
	}
}

// pixels draws the code of a page: every rectangle of its path.
func pixels(t testing.TB, page string) (grid [][]bool, side int) {
	t.Helper()
	svg := page[strings.Index(page, "<svg class=\"code\""):]
	svg = svg[:strings.Index(svg, "</svg>")]
	m := regexp.MustCompile(`viewBox="0 0 (\d+) (\d+)"`).FindStringSubmatch(svg)
	side, err := strconv.Atoi(m[1])
	require.NoError(t, err)
	require.Equal(t, m[1], m[2])
	grid = make([][]bool, side)
	for y := range grid {
		grid[y] = make([]bool, side)
	}
	path := regexp.MustCompile(` d="([^"]*)"`).FindStringSubmatch(svg)[1]
	drawn := 0
	for _, r := range regexp.MustCompile(`M(\d+) (\d+)h(\d+)v1h-(\d+)z`).FindAllStringSubmatch(path, -1) {
		drawn += len(r[0])
		n := make([]int, 4)
		for i := range n {
			n[i], _ = strconv.Atoi(r[i+1])
		}
		require.Equal(t, n[2], n[3])
		for x := n[0]; x < n[0]+n[2]; x++ {
			grid[n[1]][x] = true
		}
	}
	require.Len(t, path, drawn, "nothing else is drawn")
	return grid, side
}

func TestTheCodeIsTheOneOfTheLibraryWithAMargin(t *testing.T) {
	p := feedOfOne()
	grid, side := pixels(t, feedOut(t, p))
	code, err := qr.Encode(p.Webcal, qr.M)
	require.NoError(t, err)
	require.Equal(t, code.Size+8, side)
	for y := range side {
		for x := range side {
			require.Equal(t, code.Black(x-4, y-4), grid[y][x], "at %d, %d", x, y)
		}
	}
}

// A camera's program reads the code.
func TestTheCodeIsReadByAnotherProgram(t *testing.T) {
	program, err := exec.LookPath("zbarimg")
	if err != nil {
		require.NotEqual(t, "true", os.Getenv("CI"), "CI needs zbarimg")
		t.Skip("SKIPPED: needs zbarimg (Debian: zbar-tools); no other program reads the code")
	}
	for _, secret := range []string{feedSecret, strings.Repeat("A", 56), strings.Repeat("_", 90)} {
		p := feedOfOne()
		p.Webcal = "webcal://salon.example:8443/cal/" + secret + ".ics"
		grid, side := pixels(t, feedOut(t, p))
		const scale = 5
		img := image.NewGray(image.Rect(0, 0, side*scale, side*scale))
		for y := range side * scale {
			for x := range side * scale {
				if !grid[y/scale][x/scale] {
					img.Set(x, y, color.White)
				}
			}
		}
		file := filepath.Join(t.TempDir(), "code.png")
		f, err := os.Create(file)
		require.NoError(t, err)
		require.NoError(t, png.Encode(f, img))
		require.NoError(t, f.Close())
		out, err := exec.CommandContext(t.Context(), program, "-q", "--raw", file).Output()
		require.NoError(t, err)
		require.Equal(t, p.Webcal, strings.TrimSpace(html.UnescapeString(string(out))))
	}
}
