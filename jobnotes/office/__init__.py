"""The office: from signed sheets to invoices, orders, follow-ups and the machine's history."""
