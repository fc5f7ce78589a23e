package cli

import "github.com/spf13/cobra"

// Commands is the tree of commands, for the generator of manual pages and
// completions. Nothing in it is to be run.
func Commands() *cobra.Command { return newRoot(&app{Env: System()}) }
