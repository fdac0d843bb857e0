package gateway

import (
	"net/http"
	"time"

	"go.uber.org/zap"
)

// NewHTTPServer returns an HTTP server for h in which a slow or silent client
// holds nothing for ever. The caller serves and shuts it down.
func NewHTTPServer(h http.Handler, log *zap.Logger) *http.Server {
	errorLog, err := zap.NewStdLogAt(log, zap.WarnLevel)
	if err != nil {
		panic("gateway: internal error: " + err.Error())
	}
	return &http.Server{
		Handler:           h,
		ReadHeaderTimeout: 5 * time.Second,
		ReadTimeout:       30 * time.Second,
		WriteTimeout:      75 * time.Second, // reading, computing and writing
		IdleTimeout:       2 * time.Minute,
		MaxHeaderBytes:    16 << 10,
		ErrorLog:          errorLog,
	}
}
