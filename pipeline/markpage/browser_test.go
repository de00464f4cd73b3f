package markpage

import (
	"context"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/chromedp"

	"jogstrip/pipeline/markpage/pagetest"
)

// browser is one page, and what tests of this package do at it.
type browser struct{ *pagetest.Page }

// openBrowser opens a page of the given size.
func openBrowser(t testing.TB, width, height int64, touch bool) *browser {
	t.Helper()
	return &browser{pagetest.Open(t, width, height, touch)}
}

// eval returns what a JavaScript expression gives.
func eval[T any](b interface{ page() *pagetest.Page }, expression string) T {
	b.page().Helper()
	return pagetest.Eval[T](b.page(), expression)
}

func (b *browser) page() *pagetest.Page { return b.Page }

// prefers makes the browser ask for dark pages, or light ones.
func prefers(dark bool) pagetest.Action {
	scheme := map[bool]string{true: "dark", false: "light"}[dark]
	return func(ctx context.Context, t *chromedp.Target) (chromedp.Void, error) {
		_, err := cdp.Call(ctx, t, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}}})
		return chromedp.Void{}, err
	}
}

// touchEvent is what fingers do on the screen; when is zero for now.
func touchEvent(kind input.DispatchTouchEventType, points []*input.TouchPoint, when time.Time) pagetest.Action {
	return func(ctx context.Context, t *chromedp.Target) (chromedp.Void, error) {
		params := input.DispatchTouchEventParams{Type: kind, TouchPoints: points}
		if !when.IsZero() {
			params.Timestamp = input.TimeSinceEpoch(float64(when.UnixNano()) / 1e9)
		}
		_, err := cdp.Call(ctx, t, input.DispatchTouchEvent, params)
		return chromedp.Void{}, err
	}
}
