package client_test

import (
	"context"
	"fmt"
	"log"
	"net"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"

	"linepace.example/client"
	linepacev1 "linepace.example/proto/linepace/v1"
	"linepace.example/proto/refusal"
)

// Ask for a plan, and load what may be loaded.
func Example() {
	address, stop := exampleService()
	defer stop()

	c, err := client.Dial(address, client.Config{})
	if err != nil {
		log.Fatal(err)
	}
	defer c.Close()

	plan, err := c.Plan(context.Background(), &linepacev1.PlanRequest{
		Line:    &linepacev1.Line{Id: "kiln-line"},     // with its drives and sections
		Product: &linepacev1.Product{Id: "ridge-tile"}, // with a demand for each drive
	})
	for _, v := range refusal.Violations(err) {
		fmt.Printf("refused: %s: %s\n", v.Path, v.Text)
	}
	if err != nil {
		log.Fatal(err)
	}
	if plan.GetVerdict() == linepacev1.Check_NOT_RUNNABLE {
		fmt.Println("load nothing")
		return
	}
	for _, s := range plan.GetSetpoints() {
		if s.Count != nil {
			fmt.Printf("write %d to %s\n", s.GetCount(), s.GetTag())
		}
	}
	// Output:
	// write 13824 to KILN.SPEED_SP
}

// exampleService stands in for a Linepace service on this machine.
func exampleService() (address string, stop func()) {
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		log.Fatal(err)
	}
	server := grpc.NewServer()
	linepacev1.RegisterChangeoverServiceServer(server, &service{
		answer: func(context.Context, int32) (*linepacev1.PlanResponse, error) {
			return &linepacev1.PlanResponse{
				Verdict:   linepacev1.Check_RUNNABLE,
				Setpoints: []*linepacev1.Setpoint{{DriveId: "kiln", Count: proto.Int32(13824), Tag: "KILN.SPEED_SP"}},
			}, nil
		},
	})
	go server.Serve(listener)
	return listener.Addr().String(), server.Stop
}
