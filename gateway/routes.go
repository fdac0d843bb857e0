package gateway

import (
	"net/http"
	"slices"
	"strings"

	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
)

// route is a path of the contract with the one HTTP method that it takes.
type route struct{ method, path string }

// routesOf reads the routes from the contract's annotations, in order of path.
func routesOf(files []protoreflect.FileDescriptor) (routes []route) {
	for _, file := range files {
		for i := range file.Services().Len() {
			methods := file.Services().Get(i).Methods()
			for j := range methods.Len() {
				rule, _ := proto.GetExtension(methods.Get(j).Options(), annotations.E_Http).(*annotations.HttpRule)
				if rule.GetPost() != "" {
					routes = append(routes, route{http.MethodPost, rule.GetPost()})
				}
				if rule.GetGet() != "" {
					routes = append(routes, route{http.MethodGet, rule.GetGet()})
				}
			}
		}
	}
	slices.SortFunc(routes, func(a, b route) int { return strings.Compare(a.path, b.path) })
	return routes
}

// allowed returns the methods that a path takes, for the header Allow.
func (g *gateway) allowed(path string) string {
	i := slices.IndexFunc(g.routes, func(r route) bool { return r.path == path })
	switch {
	case i < 0:
		return ""
	case g.routes[i].method == http.MethodGet:
		return "GET, HEAD"
	}
	return g.routes[i].method
}
