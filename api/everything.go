package api

import (
	"archive/zip"
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/labstack/echo/v4"

	"chairblock/api/pages"
	"chairblock/store"
)

// zipType is the media type of the bundle as files.
const zipType = "application/zip"

type everythingOutput struct{ Body OwnBundle }

type everythingFiles struct {
	ContentType string `header:"Content-Type"`
	Disposition string `header:"Content-Disposition"`
	Body        []byte
}

func (s *Server) everythingRoutes() {
	const what = "As she gets it herself on her own pages. What is about health, with record cards and estimates, is there for the owner only, and that it was read is noted; without it left_out says so."
	route(s, huma.Operation{OperationID: "export-client", Method: http.MethodGet, Path: "/clients/{id}/everything", Summary: "Everything that is kept about a client",
		Description: what}, s.exportClient)
	route(s, huma.Operation{OperationID: "export-client-files", Method: http.MethodGet, Path: "/clients/{id}/everything.zip", Summary: "The same to hand out: a page to read and a file for programs",
		Description: what, Responses: map[string]*huma.Response{"200": {Description: "OK", Content: map[string]*huma.MediaType{zipType: {Schema: &huma.Schema{Type: huma.TypeString, Format: "binary"}}}}}}, s.exportClientFiles)
}

func (s *Server) exportClient(ctx context.Context, in *ByID) (*everythingOutput, error) {
	var out everythingOutput
	err := s.inTx(ctx, func(t *store.Tx) error {
		v, err := s.fileOf(ctx, t, in.ID)
		if err != nil {
			return err
		}
		v.hushed = !seesHealth(ctx)
		out.Body, err = v.bundle(ctx)
		return err
	})
	return &out, err
}

func (s *Server) exportClientFiles(ctx context.Context, in *ByID) (*everythingFiles, error) {
	out, err := s.exportClient(ctx, in)
	if err != nil {
		return nil, err
	}
	files, err := out.Body.files()
	return &everythingFiles{zipType, `attachment; filename="everything-about-a-client.zip"`, files}, err
}

// everythingPage answers with the bundle as files, for the page of the client.
func (s *Server) everythingPage(c echo.Context) error {
	out, err := s.exportClientFiles(c.Request().Context(), &ByID{ID: c.Param("id")})
	if err != nil {
		return sorry(c, err)
	}
	c.Response().Header().Set(echo.HeaderContentDisposition, out.Disposition)
	return c.Blob(http.StatusOK, zipType, out.Body)
}

// files are the bundle as an archive: a page to read and a file for programs.
func (b *OwnBundle) files() ([]byte, error) {
	doc, err := json.MarshalIndent(b, "", "  ")
	if err != nil {
		return nil, fmt.Errorf("api: everything: %w", err)
	}
	var page, out bytes.Buffer
	name := b.Client.GivenName + " " + b.Client.FamilyName
	if err := pages.RenderEverything(&page, pages.Everything{Name: pages.Clean(name), Salon: b.Salon, Made: b.MadeAt, Document: doc}); err != nil {
		return nil, fmt.Errorf("api: everything: %w", err)
	}
	z := zip.NewWriter(&out)
	for _, f := range []struct {
		name string
		body []byte
	}{{"everything.html", page.Bytes()}, {"everything.json", doc}} {
		w, err := z.CreateHeader(&zip.FileHeader{Name: f.name, Method: zip.Deflate, Modified: b.MadeAt.Truncate(time.Second)})
		if err == nil {
			_, err = w.Write(f.body)
		}
		if err != nil {
			return nil, fmt.Errorf("api: everything: %w", err)
		}
	}
	if err := z.Close(); err != nil {
		return nil, fmt.Errorf("api: everything: %w", err)
	}
	return out.Bytes(), nil
}
