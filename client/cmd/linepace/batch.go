package main

import (
	"time"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/proto"

	linepacev1 "linepace.example/proto/linepace/v1"
)

// batchFlags say what a plan belongs to.
type batchFlags struct {
	batch linepacev1.Batch
}

func (f *batchFlags) add(c *cobra.Command) {
	flags := c.Flags()
	flags.StringVar(&f.batch.BatchId, "batch", "", "`id` of the batch that the plan belongs to")
	flags.StringVar(&f.batch.RecipeId, "recipe", "", "`id` of the recipe")
	flags.StringVar(&f.batch.EquipmentId, "equipment", "", "`id` of the equipment")
	flags.StringVar(&f.batch.RequestedBy, "by", "", "`name` of who asks")
	flags.StringVar(&f.batch.Reason, "reason", "", "why, as a `text`")
	flags.StringVar(&f.batch.RequestedAt, "at", "", "`time` of the request, RFC 3339 such as 2026-03-02T06:00:00Z, or now by this computer's clock")
}

// message returns what the flags say, or nil where they say nothing. The service
// has no clock: "now" is read here, once.
func (f *batchFlags) message() *linepacev1.Batch {
	if proto.Equal(&f.batch, &linepacev1.Batch{}) {
		return nil
	}
	b := proto.CloneOf(&f.batch)
	if b.RequestedAt == "now" {
		b.RequestedAt = time.Now().UTC().Format(time.RFC3339)
	}
	return b
}
