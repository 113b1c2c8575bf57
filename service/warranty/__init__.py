"""The warranty record: what the site file, the log and people say of a plant over its years."""
