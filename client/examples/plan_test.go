package examples_test

import (
	"os"
	"path/filepath"
	"testing"

	"buf.build/go/protoyaml"
	"github.com/google/go-cmp/cmp"
	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/testing/protocmp"

	"linepace.example/proto/codec"
	linepacev1 "linepace.example/proto/linepace/v1"
)

// The request of the examples is the demo's change of product in one JSON
// document, with a batch.
func TestPlanRequestIsTheDemo(t *testing.T) {
	text, err := os.ReadFile("plan.json")
	require.NoError(t, err)
	got := &linepacev1.PlanRequest{}
	require.NoError(t, codec.Unmarshal(text, got))

	want := &linepacev1.PlanRequest{
		Line: &linepacev1.Line{}, Product: &linepacev1.Product{}, Running: &linepacev1.Product{}, Batch: got.GetBatch(),
	}
	rooftile(t, "line.yaml", want.Line)
	rooftile(t, "product-b.yaml", want.Product)
	rooftile(t, "product-a.yaml", want.Running)
	require.Empty(t, cmp.Diff(want, got, protocmp.Transform()))
	require.NotEmpty(t, got.GetBatch().GetBatchId())
}

func rooftile(t *testing.T, name string, m proto.Message) {
	t.Helper()
	path := filepath.Join("..", "..", "testdata", "rooftile", name)
	text, err := os.ReadFile(path)
	require.NoError(t, err)
	require.NoError(t, protoyaml.UnmarshalOptions{Path: path}.Unmarshal(text, m))
}
