"""Mail: messages, the outbox that keeps every intention to send, and the transports that carry them."""
