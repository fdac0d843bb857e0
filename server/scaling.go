package server

import linepacev1 "linepace.example/proto/linepace/v1"

// scalingService answers for one drive.
type scalingService struct {
	linepacev1.UnimplementedScalingServiceServer
}
