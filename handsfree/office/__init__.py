"""What the office keeps: who is enrolled, which heads arrived, and what people signed to a record afterwards."""
