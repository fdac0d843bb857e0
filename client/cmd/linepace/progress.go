package main

import (
	"io"
	"os"
	"time"

	"github.com/mattn/go-isatty"
	"github.com/schollz/progressbar/v3"
)

// longFile is the size from which on reading takes long enough to be watched.
const longFile = 4 << 20

// watched returns r, which has so many bytes, and shows on a terminal how far it was
// read. Anywhere else stderr stays empty.
func watched(r io.Reader, size int, stderr io.Writer) io.Reader {
	file, ok := stderr.(*os.File)
	if !ok || size < longFile || !isatty.IsTerminal(file.Fd()) {
		return r
	}
	bar := progressbar.NewOptions64(int64(size), progressbar.OptionSetWriter(stderr), progressbar.OptionSetDescription("reading"),
		progressbar.OptionShowBytes(true), progressbar.OptionThrottle(100*time.Millisecond), progressbar.OptionClearOnFinish())
	return io.TeeReader(r, bar)
}
