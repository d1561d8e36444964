"""Rules drive the real session beside a small model; what fails is shrunk by hypothesis."""
