package server

import linepacev1 "linepace.example/proto/linepace/v1"

// changeoverService plans the change of a line from one product to the next.
type changeoverService struct {
	linepacev1.UnimplementedChangeoverServiceServer
}
