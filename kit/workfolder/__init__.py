"""The working folder: laying one out for a formula of one's own, and opening JupyterLab in it."""
