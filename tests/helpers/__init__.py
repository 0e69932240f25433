"""What several tests share: invented worlds, the command in a fork, results compared."""
