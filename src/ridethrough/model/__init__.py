"""What appliance, unit and recharge do. Knows no files, pictures, notebooks or lessons."""
