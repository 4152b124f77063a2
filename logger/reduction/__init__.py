"""Raw observations to heights with their covariance."""
