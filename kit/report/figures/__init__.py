"""Statistical pictures: each states a finding, drawn and in words."""
