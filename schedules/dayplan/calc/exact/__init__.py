"""Days that OR-Tools' CP-SAT can hold whole: proofs, and plans where insertion has difficulty."""
