"""From a ground profile and a brief to ranked layouts of steps, each with its reasons."""
