"""Many random flights, the watch run over each as its users run it, and what came of it in figures."""
