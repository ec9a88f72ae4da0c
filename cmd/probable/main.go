package main

import (
	"fmt"
	"os"
	"time"

	"probable/engine"
	"probable/kb"
	"probable/rules"
)

func main() {
	t := time.Now()
	b, err := rules.ReadBase(kb.Files)
	if err != nil {
		fmt.Println(err)
		os.Exit(1)
	}
	fmt.Println("base", time.Since(t))
	data, _ := os.ReadFile(os.Args[1])
	t = time.Now()
	h, err := b.Harness(os.Args[1], data)
	if err != nil {
		fmt.Println(err)
		os.Exit(1)
	}
	m, err := engine.FromHarness(h, engine.Options{Symptom: os.Args[2], Guide: b.GuideFor(h, os.Args[2])})
	if err != nil {
		fmt.Println(err)
		os.Exit(1)
	}
	fmt.Println("model", time.Since(t), len(m.Causes), len(m.Checks))
	c := engine.NewCourse(m, engine.Gate{})
	t = time.Now()
	s := c.Next()
	fmt.Println("next", time.Since(t))
	fmt.Printf("%+v %+v\n", s.Check.ID, s.Bits)
	r, bits := c.Ranking()
	fmt.Println(bits)
	for _, x := range r[:10] {
		fmt.Println(x.Cause.ID, x.P)
	}
}
