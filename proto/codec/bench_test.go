package codec_test

import (
	"testing"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	linepacev1 "linepace.example/proto/linepace/v1"

	"linepace.example/proto/codec"
)

// Each pair of benchmarks does the same work, by this package and by protojson:
// compare them within one run.

func BenchmarkDecodePlanRequest(b *testing.B) {
	body := must(protojson.Marshal(twelveDrives()))
	run := func(name string, read func([]byte, proto.Message) error) {
		b.Run(name, func(b *testing.B) {
			b.SetBytes(int64(len(body)))
			b.ReportAllocs()
			for b.Loop() {
				if err := read(body, new(linepacev1.PlanRequest)); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
	run("codec", codec.Unmarshal)
	run("protojson", protojson.Unmarshal)
}

func BenchmarkEncodePlanResponse(b *testing.B) {
	for _, working := range []bool{false, true} {
		m := twelveSetpoints(working)
		run := func(name string, write func([]byte, proto.Message) ([]byte, error)) {
			if working {
				name += "/working"
			}
			b.Run(name, func(b *testing.B) {
				b.ReportAllocs()
				var out []byte
				for b.Loop() {
					var err error
					if out, err = write(out[:0], m); err != nil {
						b.Fatal(err)
					}
				}
				b.SetBytes(int64(len(out)))
			})
		}
		run("codec", codec.Append)
		run("canonical", codec.AppendCanonical)
		run("protojson", protojson.MarshalOptions{EmitDefaultValues: true}.MarshalAppend)
	}
}
